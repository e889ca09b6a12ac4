//go:build ignore

// Command make writes the files of the corpus that no hand can type: packed,
// binary, long and wide ones. Run it in testdata: go run make.go
package main

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"fmt"
	"log"
	"math"
	"math/rand/v2"
	"os"
	"strings"

	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
)

func main() {
	comma := read("text/comma.csv")
	semicolon := read("text/semicolon-decimal-comma.csv")

	write("packed/comma.csv.gz", gz(comma))
	write("packed/comma.dat", zst(comma)) // zstd, under a name that says nothing
	write("packed/twice.gz", gz(gz(comma)))
	write("packed/too-deep.gz", gz(gz(gz(gz(gz(comma))))))
	write("packed/cut.gz", gz([]byte(table(400, 7)))[:2500])
	write("packed/cut.zst", zst([]byte(table(400, 7)))[:2500])
	write("packed/nothing-in-it.gz", gz(nil))
	write("packed/bomb.gz", gz(make([]byte, 40<<20)))
	write("packed/bomb-with-head.gz", gz(append(bytes.Clone(comma), bytes.Repeat([]byte("0.4,48.1,11.5,1,1,1,1\n"), 1<<17)...)))
	write("packed/two.zip", zipped("am/run1.csv", comma, "am/run2.csv", semicolon, "am/readme.txt", []byte("two runs of the morning, dry and warm\n"), "__MACOSX/._run1.csv", []byte{0, 5, 22, 7}))
	write("packed/no-recording.zip", zipped("a.txt", []byte("words alone\n"), "b.txt", []byte("more of them\n")))
	write("packed/workbook.xlsx", zipped("[Content_Types].xml", []byte("<Types/>"), "xl/workbook.xml", []byte("<workbook/>")))
	write("packed/empty.zip", zipped())
	write("packed/zip-in-zip.zip", zipped("inner.zip", zipped("run.csv", comma)))
	write("packed/log-with-database.zip", zipped("run.log", read("can/basic.log"), "bus.dbc", read("can/bus.dbc")))
	z := zipped("run.csv", comma)
	write("packed/cut.zip", z[:len(z)-30])
	locked := bytes.Clone(z)
	locked[6] |= 1                                           // "encrypted" in the local header
	locked[bytes.Index(locked, []byte("PK\x01\x02"))+8] |= 1 // and in the directory
	write("packed/locked.zip", locked)

	write("text/held-values.csv", []byte(held()))
	write("text/gps-repeated.csv", []byte(gpsRepeated()))
	write("text/coarse-stamps.csv", []byte(coarse()))
	write("text/wide.csv", []byte(wide()))

	rng := rand.New(rand.NewPCG(1, 2))
	junk := make([]byte, 900)
	for i := range junk {
		junk[i] = byte(rng.Uint32())
	}
	write("junk/random", junk)
	write("junk/zeros", make([]byte, 4096))
	write("junk/picture.csv", append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"), junk[:200]...))
	write("junk/photograph", append([]byte("\xff\xd8\xff\xe0\x00\x10JFIF"), junk[:200]...))
	write("junk/document.csv", append([]byte("%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n"), junk[:300]...))
	write("junk/page.html", []byte("<!DOCTYPE html>\n<html><head><title>Sign in</title></head>\n<body><p>Please sign in to the network of the circuit, then try again.</p>\n</body></html>\n"))
	write("junk/data.json", []byte("{\"run\": 3, \"laps\": [\n  {\"lap\": 1, \"time\": 92.5},\n  {\"lap\": 2, \"time\": 91.75}\n]}\n"))
	write("junk/letter.txt", []byte("Dear crew,\n\nthe bike is loaded. We leave at seven, and the tyres are warm.\nSee you there.\n"))
	write("junk/other.xml", []byte("<?xml version=\"1.0\"?>\n<orders><order n=\"1\"/></orders>\n"))
	write("junk/settings.txt", []byte("name = \"Heron 998\" # a bike\n\n[mass]\ntotal_kg = 262\n[[setting]]\nrange = [1, 20]\nrows = { unit = \"deg\", points = [0, 15] }\n[setting.values]\nA = [\n  [12.0, 11.5],\n  [10.5, 10.0],\n]\n"))
	write("junk/archive.7z", []byte("7z\xbc\xaf\x27\x1c\x00\x04"+string(junk[:80])))

	parquets()
}

type sample struct {
	Time      float64  `parquet:"Time [s]"`
	Latitude  float64  `parquet:"Latitude [deg]"`
	Longitude float64  `parquet:"Longitude [deg]"`
	Speed     float32  `parquet:"Front wheel speed [km/h]"`
	Engine    int32    `parquet:"rpm"`
	Brake     *float64 `parquet:"Front brake [bar],optional"`
	Slip      bool     `parquet:"Slip control on"`
	Word      string   `parquet:"Remark"`
}

func samples(n int) []sample {
	out := make([]sample, n)
	for i := range out {
		out[i] = sample{Time: float64(i) / 10, Latitude: 48.1 + float64(i)*2.5e-5, Longitude: 11.5, Speed: 100 + float32(i)/2, Engine: 8000 + 40*int32(i), Slip: i%2 == 1, Word: "x"}
		if i%5 == 0 {
			b := float64(i) / 5
			out[i].Brake = &b
		}
	}
	return out
}

type stamped struct {
	Time      int64   `parquet:"timestamp,timestamp(microsecond)"`
	Latitude  int64   `parquet:"lat,decimal(7:18)"`
	Longitude int64   `parquet:"lon,decimal(7:18)"`
	Lean      float64 `parquet:"lean_deg"`
}

func parquets() {
	write("parquet/foreign.parquet", pq(samples(20), 20, &parquet.Snappy))
	write("parquet/dictionary.parquet", pq(samples(20), 7, &parquet.Zstd))
	st := make([]stamped, 12)
	for i := range st {
		st[i] = stamped{1772964000_000000 + int64(i)*100_000, 481000000 + int64(i)*250, 115000000, -10 - float64(i)/2}
	}
	write("parquet/timestamps.parquet", pq(st, 100, &parquet.Uncompressed))
	write("parquet/no-rows.parquet", pq([]sample{}, 100, &parquet.Uncompressed))
	write("parquet/words-alone.parquet", pq([]struct {
		A string `parquet:"a"`
	}{{"x"}, {"y"}}, 100, &parquet.Uncompressed))
	write("parquet/lists.parquet", pq([]struct {
		Time float64   `parquet:"time"`
		Lat  float64   `parquet:"lat"`
		Lon  float64   `parquet:"lon"`
		L    []float64 `parquet:"peaks,list"`
	}{{0, 48.1, 11.5, []float64{1, 2}}, {0.1, 48.100025, 11.5, nil}, {0.2, 48.10005, 11.5, []float64{3}}}, 100, &parquet.Uncompressed))
	inf := samples(20)
	inf[3].Latitude, inf[7].Latitude = math.NaN(), math.Inf(1)
	write("parquet/not-numbers.parquet", pq(inf, 20, &parquet.Snappy))

	whole := pq(samples(60), 15, &parquet.Uncompressed)
	write("parquet/footer-cut.parquet", whole[:len(whole)-40])
	write("parquet/cut-in-third-group.parquet", whole[:len(whole)*5/8])
	bad := bytes.Clone(whole)
	for i := len(bad) - 300; i < len(bad)-260; i++ {
		bad[i] ^= 0x5a
	}
	write("parquet/footer-damaged.parquet", bad)
	packed := pq(samples(60), 15, &parquet.Snappy)
	mid := bytes.Clone(packed)
	for i := len(mid) * 3 / 10; i < len(mid)*3/10+24; i++ {
		mid[i] ^= 0xff
	}
	write("parquet/block-damaged.parquet", mid)
	claim := bytes.Clone(whole)
	copy(claim[len(claim)-8:], []byte{0xff, 0xff, 0xff, 0x7f})
	write("parquet/footer-claims-too-much.parquet", claim)
	write("parquet/head-alone.parquet", []byte("PAR1"))
}

func pq[T any](rows []T, group int, codec compress.Codec) []byte {
	var b bytes.Buffer
	w := parquet.NewGenericWriter[T](&b, parquet.MaxRowsPerRowGroup(int64(group)), parquet.Compression(codec), parquet.CreatedBy("corpus", "1", ""))
	if _, err := w.Write(rows); err != nil {
		log.Fatal(err)
	}
	if err := w.Close(); err != nil {
		log.Fatal(err)
	}
	return b.Bytes()
}

// table is a plain table of n rows.
func table(n int, seed uint64) string {
	rng := rand.New(rand.NewPCG(seed, 1))
	var b strings.Builder
	b.WriteString("Time [s],Latitude [deg],Longitude [deg],Engine speed [1/min]\n")
	for i := range n {
		fmt.Fprintf(&b, "%.2f,%.7f,%.7f,%d\n", float64(i)/100, 48.1+float64(i)*2.5e-6, 11.5+rng.Float64()*1e-6, 8000+rng.IntN(50))
	}
	return b.String()
}

// held repeats a slow temperature and a slow travel on every row: 100 Hz rows,
// 10 Hz travel, rear brake at every row.
func held() string {
	rng := rand.New(rand.NewPCG(3, 1))
	var b strings.Builder
	b.WriteString("Time [s],Latitude [deg],Longitude [deg],Fork [mm],Rear brake [bar]\n")
	fork := 0.0
	for i := range 400 {
		if i%10 == 0 {
			fork = 40 + 10*math.Sin(float64(i)/50) + rng.Float64()
		}
		fmt.Fprintf(&b, "%.2f,%.7f,%.7f,%.2f,%.2f\n", float64(i)/100, 48.1+float64(i)*2.5e-6, 11.5+float64(i)*1e-7, fork, 1+rng.Float64())
	}
	return b.String()
}

// gpsRepeated repeats each fix (10 Hz) on ten rows, loses reception from 3.0 s
// to 4.5 s while the wheel turns, and stands from 7 s on.
func gpsRepeated() string {
	rng := rand.New(rand.NewPCG(4, 1))
	var b strings.Builder
	b.WriteString("Time [s],Latitude [deg],Longitude [deg],GPS speed [km/h],Front wheel speed [km/h]\n")
	lat, v, gps := 48.1, 100.0, 0.0
	for i := range 800 {
		t := float64(i) / 100
		if t >= 6 {
			v = math.Max(0, 100-120*(t-6))
		}
		if i%10 == 0 && !(t >= 3 && t < 4.5) {
			lat = 48.1 + t*v/3.6/111200
		}
		if v == 0 {
			lat = 48.105
		}
		if i%10 == 0 && !(t >= 3 && t < 4.5) {
			gps = math.Floor(v)
		}
		fmt.Fprintf(&b, "%.2f,%.7f,11.5000000,%.1f,%.2f\n", t, lat, gps, v*(1+0.001*rng.Float64()))
	}
	return b.String()
}

// coarse has 20 rows a second under stamps of tenths.
func coarse() string {
	var b strings.Builder
	b.WriteString("Time [s],Latitude [deg],Longitude [deg],Engine speed [1/min]\n")
	for i := range 12 {
		fmt.Fprintf(&b, "%.1f,%.7f,11.5,%d\n", float64(i/2)/10, 48.1+float64(i)*1.25e-5, 8000+10*i)
	}
	return b.String()
}

// wide has two thousand columns.
func wide() string {
	var b strings.Builder
	b.WriteString("Time [s],Latitude [deg],Longitude [deg]")
	for c := range 1997 {
		fmt.Fprintf(&b, ",s%d", c)
	}
	for r := range 3 {
		fmt.Fprintf(&b, "\n%.1f,%.6f,11.5", float64(r)/10, 48.1+float64(r)*2.5e-5)
		for c := range 1997 {
			fmt.Fprintf(&b, ",%d", (c+r)%10)
		}
	}
	return b.String() + "\n"
}

func gz(b []byte) []byte {
	var out bytes.Buffer
	w, _ := gzip.NewWriterLevel(&out, gzip.BestCompression)
	w.Write(b)
	w.Close()
	return out.Bytes()
}

func zst(b []byte) []byte {
	w, _ := zstd.NewWriter(nil)
	return w.EncodeAll(b, nil)
}

func zipped(nameData ...any) []byte {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for i := 0; i < len(nameData); i += 2 {
		w, err := z.Create(nameData[i].(string))
		if err != nil {
			log.Fatal(err)
		}
		w.Write(nameData[i+1].([]byte))
	}
	z.Close()
	return out.Bytes()
}

func read(name string) []byte {
	b, err := os.ReadFile(name)
	if err != nil {
		log.Fatal(err)
	}
	return b
}

func write(name string, b []byte) {
	if err := os.WriteFile(name, b, 0o644); err != nil {
		log.Fatal(err)
	}
}
