package web

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"
)

// How long a stop waits: for what is in hand to be finished, then for it to be
// broken off with an answer.
var (
	finishTime = 20 * time.Second
	breakTime  = 5 * time.Second
)

// maxConnections in all, and from one other machine.
const (
	maxConnections = 1024
	maxFromOne     = 64
)

// Welcome is what there is to say when the pages can be opened.
type Welcome struct {
	Address     string // on this machine
	Fingerprint string // SHA-256 of the certificate, "" without encryption
	// While sharing: what phones open, the riders' code, and the code to scan as
	// lines of text. Phones is "" where this machine is on no network.
	Phones, Code, Picture string
	Until                 time.Time
}

// Serve answers on the address until the context ends. Then nothing new is
// taken, streams end, and what is in hand is finished; what takes longer is
// broken off with an answer that says so. An address that other machines reach
// is refused unless the handler was made to share.
func Serve(ctx context.Context, addr string, h http.Handler, ready func(Welcome)) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("the address %q is not HOST:PORT\n  mend: write it like 127.0.0.1:8765", addr)
	}
	site, ok := h.(*server)
	if !ok {
		return errors.New("only the pages of New are served")
	}
	if !site.share && !local(host) {
		return fmt.Errorf("the address %q is reached from other machines: the pages are served to this machine alone\n  mend: write it like 127.0.0.1:8765, or let phones in after pairing with --share", addr)
	}
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return fmt.Errorf("the address %q cannot be served: %w\n  mend: name another port, 0 for a free one", addr, err)
	}
	hold, halt := context.WithCancel(context.Background())
	defer halt()
	srv := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: readTime, WriteTimeout: writeTime, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10,
		BaseContext: func(net.Listener) context.Context { return hold },
		// Broken handshakes and the like are the network's, not ours.
		ErrorLog: slog.NewLogLogger(site.log.Handler(), slog.LevelDebug)}
	scheme := "http"
	w := Welcome{}
	if site.tls {
		cert, print, err := selfMade()
		if err != nil {
			l.Close() //nolint:errcheck // nothing was served
			return err
		}
		scheme, w.Fingerprint = "https", print
		srv.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12}
	}
	_, port, _ := net.SplitHostPort(l.Addr().String())
	site.mu.Lock()
	site.scheme, site.port, site.fingerprint = scheme, port, w.Fingerprint
	site.mu.Unlock()
	shown := l.Addr().String()
	if ip := net.ParseIP(hostName(shown)); ip == nil || ip.IsUnspecified() {
		shown = net.JoinHostPort("127.0.0.1", port)
	}
	w.Address = scheme + "://" + shown + "/"
	if site.share {
		p := site.door.invite(Rider)
		w.Code, w.Until = p.Code, p.Until
		if as := site.addresses(); len(as) > 0 && !local(host) {
			w.Phones = as[0] + "/join"
			if q, err := scan(w.Phones, p.Code); err == nil {
				w.Picture = blocks(q)
			}
		}
	}
	done := make(chan error, 1)
	bounded := &limited{Listener: l, from: map[string]int{}}
	go func() {
		if scheme == "https" {
			done <- srv.ServeTLS(bounded, "", "")
		} else {
			done <- srv.Serve(bounded)
		}
	}()
	if ready != nil {
		ready(w)
	}
	site.log.Info("serving", "address", w.Address, "shared", site.share, "tls", site.tls)
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	site.log.Info("stopping", "uploads", len(site.uploads), "pages", len(site.work), "streams", site.streams.Load())
	site.stop.Do(func() { close(site.closing) })
	end, cancel := context.WithTimeout(context.Background(), finishTime)
	err = srv.Shutdown(end)
	cancel()
	if err == nil {
		return nil
	}
	// Time is up: readers of uploads and the work on them are broken off, and
	// answer so.
	site.log.Warn("breaking off", "uploads", len(site.uploads), "pages", len(site.work))
	site.cut.Do(func() { close(site.halt) })
	halt()
	end, cancel = context.WithTimeout(context.Background(), breakTime)
	defer cancel()
	if err = srv.Shutdown(end); err != nil {
		srv.Close() //nolint:errcheck // nothing more can be done
		return fmt.Errorf("some requests did not end in time and were cut off: %w", err)
	}
	return nil
}

// Uploads tells how many recordings are being taken by the pages.
func Uploads(h http.Handler) int {
	if s, ok := h.(*server); ok {
		return len(s.uploads)
	}
	return 0
}

// limited bounds how many connections are open, so that nobody can take them
// all: whoever has too many waits or is closed.
type limited struct {
	net.Listener
	mu   sync.Mutex
	all  int
	from map[string]int
}

type counted struct {
	net.Conn
	once sync.Once
	free func()
}

func (c *counted) Close() error {
	c.once.Do(c.free)
	return c.Conn.Close()
}

// Accept implements net.Listener. A connection too many is closed at once.
func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		addr := c.RemoteAddr().String()
		name := hostName(addr)
		l.mu.Lock()
		if l.all >= maxConnections || !loopback(addr) && l.from[name] >= maxFromOne {
			l.mu.Unlock()
			c.Close() //nolint:errcheck // it was not used
			continue
		}
		l.all++
		l.from[name]++
		l.mu.Unlock()
		return &counted{Conn: c, free: func() {
			l.mu.Lock()
			defer l.mu.Unlock()
			l.all--
			if l.from[name]--; l.from[name] == 0 {
				delete(l.from, name)
			}
		}}, nil
	}
}

// selfMade makes a certificate for this machine's addresses, good for a week,
// and its SHA-256 fingerprint. The key lives in memory only.
func selfMade() (tls.Certificate, string, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return tls.Certificate{}, "", err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return tls.Certificate{}, "", err
	}
	now := time.Now()
	c := &x509.Certificate{SerialNumber: serial, Subject: pkix.Name{CommonName: "cornerwright on this network"}, NotBefore: now.Add(-24 * time.Hour), NotAfter: now.Add(7 * 24 * time.Hour),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, DNSNames: []string{"localhost"}}
	for _, a := range machine() {
		c.IPAddresses = append(c.IPAddresses, a.ip)
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		return tls.Certificate{}, "", err
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, fingerprint(der), nil
}

// fingerprint is the SHA-256 of a certificate, in pairs as browsers show it.
func fingerprint(der []byte) string {
	sum := sha256.Sum256(der)
	var out []string
	for _, b := range sum {
		out = append(out, fmt.Sprintf("%02X", b))
	}
	return strings.Join(out, ":")
}
