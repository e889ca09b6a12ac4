package intake

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
)

// Every codec gives the values that were written, from pages of either version, with
// values missing and with a dictionary; LZ4, which the library reads wrongly, is
// refused in words.
func TestParquetCodecs(t *testing.T) {
	type row struct {
		Time  float64  `parquet:"Time [s]"`
		Speed *float64 `parquet:"GPS speed [km/h],optional"`
		Gear  int32    `parquet:"Gear,dict"`
		Lat   float64  `parquet:"Latitude [deg]"`
		Lon   float64  `parquet:"Longitude [deg]"`
	}
	for name, codec := range map[string]compress.Codec{"none": &parquet.Uncompressed, "snappy": &parquet.Snappy, "gzip": &parquet.Gzip, "brotli": &parquet.Brotli, "zstd": &parquet.Zstd, "lz4": &parquet.Lz4Raw} {
		for version := 1; version <= 2; version++ {
			var b bytes.Buffer
			w := parquet.NewGenericWriter[row](&b, parquet.Compression(codec), parquet.DataPageVersion(version), parquet.PageBufferSize(4096))
			speeds := 0
			for i := range 5000 {
				r := row{Time: 0.1 * float64(i), Gear: int32(i / 100 % 6), Lat: 48 + 2e-5*float64(i), Lon: 11}
				if v := 72.0; i%7 != 3 {
					r.Speed, speeds = &v, speeds+1
				}
				if _, err := w.Write([]row{r}); err != nil {
					t.Fatal(err)
				}
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			res, err := Read("x.parquet", b.Bytes(), Options{})
			if name == "lz4" {
				var e *Error
				if !errors.As(err, &e) || !strings.Contains(e.Text.String(), "LZ4") || !strings.Contains(e.Mend.String(), "zstd") {
					t.Errorf("lz4: %v", err)
				}
				continue
			}
			if err != nil {
				t.Fatalf("%s, version %d: %v", name, version, err)
			}
			lat, speed := res.Recordings[0].Channel("latitude"), res.Recordings[0].Channel("gps_speed")
			if n := len(lat.Value); n != 5000 || lat.Value[n-1] <= lat.Value[0] {
				t.Errorf("%s, version %d: %d latitudes: %v", name, version, n, res.Problems)
			}
			if n := len(speed.Value); n != speeds {
				t.Errorf("%s, version %d: %d of %d speeds: %v", name, version, n, speeds, res.Problems)
			}
		}
	}
}
