package joblog

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var writeGolden = flag.Bool("write-golden", false, "write the golden logs of this version that do not exist yet")

func compiledSchema(t testing.TB) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(JSONSchema()))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource("schema.json", doc))
	s, err := c.Compile("schema.json")
	require.NoError(t, err)
	return s
}

func validate(t testing.TB, s *jsonschema.Schema, line []byte) error {
	t.Helper()
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(line))
	require.NoError(t, err)
	return s.Validate(v)
}

func TestEveryKindKeepsToTheSchema(t *testing.T) {
	s := compiledSchema(t)
	met := map[Kind]bool{}
	for line := range bytes.Lines(sampleLog(t)) {
		require.NoError(t, validate(t, s, line))
		e, err := parseLine(bytes.TrimSuffix(line, []byte("\n")))
		require.NoError(t, err)
		met[e.Kind] = true
	}
	torn, err := encodeBody(Torn{File: "log.torn-1", Bytes: 3, SHA256: someSum})
	require.NoError(t, err)
	require.NoError(t, validate(t, s, lineOf(Entry{Seq: 3, At: start, Kind: KindTorn, Body: torn})))
	met[KindTorn] = true
	for _, k := range Kinds() {
		assert.True(t, met[k], "no sample of kind %s", k)
	}
}

// What the Go types refuse, the schema refuses too.
func TestTheSchemaRefuses(t *testing.T) {
	s := compiledSchema(t)
	for kind, body := range map[Kind]string{
		KindNote:     `{"text":"x","more":1}`,
		KindHeard:    `{"source":"rumour","text":"x"}`,
		KindCallout:  `{"heard":1,"decision":"recorded","readings":[{"quantity":"current","place":"","value":1,"unit":"amps","certainty":1}]}`,
		KindProof:    `{"repair":0,"proved":true,"because":""}`,
		KindQuestion: `{"asks":"nicely","say":"x"}`,
		KindTimer:    `{"timer":"x","event":"started","until":"today"}`,
		KindOpened:   `{"schema":2,"program":"x","job":"a","unit":"","technician":"","knowledge":"","model":"","adapter":""}`,
		"gossip":     `{}`,
	} {
		e := Entry{Seq: 1, At: start, Kind: kind, Body: []byte(body)}
		require.Error(t, validate(t, s, lineOf(e)), kind)
		if kind != KindOpened {
			_, err := Decode(e)
			require.Error(t, err, kind)
		}
	}
	require.Error(t, validate(t, s, []byte(`{"seq":1}`)))
	local := bytes.Replace(lineOf(Entry{Seq: 1, At: start, Kind: KindNote, Body: []byte(`{"text":"x"}`)}), []byte("Z\""), []byte("+01:00\""), 1)
	require.Error(t, validate(t, s, local))
}

// The schema knows the same kinds, fields and units as the Go types.
func TestTheSchemaAndTheTypesAgree(t *testing.T) {
	var schema struct {
		Properties struct{ Kind struct{ Enum []Kind } }
		Defs       map[string]struct {
			Properties map[string]any
			Required   []string
			Enum       []string
		} `json:"$defs"`
	}
	require.NoError(t, json.Unmarshal(JSONSchema(), &schema))
	assert.Equal(t, Kinds(), schema.Properties.Kind.Enum)
	assert.ElementsMatch(t, knownUnits, schema.Defs["unit"].Enum)
	samples := append(sampleBodies(), sampleOpened(), Torn{}, Closed{})
	for _, b := range samples {
		def := schema.Defs[string(b.Kind())]
		var names, required []string
		for f := range reflect.TypeOf(b).NumField() {
			name, opts, _ := strings.Cut(reflect.TypeOf(b).Field(f).Tag.Get("json"), ",")
			names = append(names, name)
			if opts != "omitempty" {
				required = append(required, name)
			}
		}
		var have []string
		for name := range def.Properties {
			have = append(have, name)
		}
		assert.ElementsMatch(t, names, have, b.Kind())
		assert.ElementsMatch(t, required, def.Required, b.Kind())
	}
}

// FORMAT.md tells of every kind and every field.
func TestTheDocumentIsComplete(t *testing.T) {
	b, err := os.ReadFile("FORMAT.md")
	require.NoError(t, err)
	parts := strings.Split(string(b), "\n### ")
	for _, body := range append(sampleBodies(), sampleOpened(), Torn{}, Closed{}) {
		part := ""
		for _, p := range parts {
			if strings.HasPrefix(p, string(body.Kind())+"\n") {
				part = p
			}
		}
		if !assert.NotEmpty(t, part, "no section on %s", body.Kind()) {
			continue
		}
		for f := range reflect.TypeOf(body).NumField() {
			name, _, _ := strings.Cut(reflect.TypeOf(body).Field(f).Tag.Get("json"), ",")
			assert.Contains(t, part, "`"+name+"`", body.Kind())
		}
	}
	for _, u := range units() {
		assert.Contains(t, string(b), "`"+u.code+"`")
	}
}

// Logs of every released version are read for ever. A golden log is written
// once and not again; the table says what each must give.
func TestGoldenLogs(t *testing.T) {
	if *writeGolden {
		writeGoldenLogs(t)
	}
	for name, want := range map[string]struct {
		entries uint64
		state   State
		closed  bool
		head    string
	}{
		"v1/every-kind.jsonl": {15, Whole, true, "9cd23370045e53278f5e516f17ea402d80cfd0189140c5f778a977b596d22ca6"},
		"v1/carried-on.jsonl": {4, Whole, false, "febab4904033d53a38158d3bc361773f0c137dd0e40c535a2833f90965cd4cc3"},
		"v1/torn.jsonl":       {2, TornTail, false, "fb7abfc3c4796f2cd94882e583ec22142cbbdc393c9751d9dd235fb84d40fbe9"},
		"v1/altered.jsonl":    {2, Altered, false, "fb7abfc3c4796f2cd94882e583ec22142cbbdc393c9751d9dd235fb84d40fbe9"},
	} {
		t.Run(name, func(t *testing.T) {
			b, err := os.ReadFile(filepath.Join("testdata", name))
			require.NoError(t, err)
			r := see(t, b)
			assert.Equal(t, want.entries, r.Entries)
			assert.Equal(t, want.state, r.State)
			assert.Equal(t, want.closed, r.Closed)
			assert.Equal(t, want.head, r.Head.Hash.String())
		})
	}
}

func writeGoldenLogs(t *testing.T) {
	put := func(name string, log []byte) {
		f, err := os.OpenFile(filepath.Join("testdata", "v1", name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
		if os.IsExist(err) {
			return
		}
		require.NoError(t, err)
		_, err = f.Write(log)
		require.NoError(t, err)
		require.NoError(t, f.Close())
		fmt.Println(name, see(t, log).Head)
	}
	require.NoError(t, os.MkdirAll(filepath.Join("testdata", "v1"), 0o755))
	put("every-kind.jsonl", sampleLog(t))
	two := logBytes(t, newJob(t, sampleBodies()[:2]...))
	torn := two[:len(two)-30]
	put("torn.jsonl", torn)
	altered := bytes.Clone(two)
	altered[len(altered)-200] ^= 1
	put("altered.jsonl", altered)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, LogName), torn, 0o644))
	w, err := Open(dir, start.Add(time.Hour))
	require.NoError(t, err)
	_, err = w.Append(Note{Text: "carried on"}, start.Add(time.Hour+time.Second))
	require.NoError(t, err)
	require.NoError(t, w.Close())
	put("carried-on.jsonl", logBytes(t, dir))
}

// Codes and names as the National Library of Medicine's UCUM library has them
// (npm @lhncbc/ucum-lhc 7.1.10, validateUnitString), where it gives a name; it
// finds "[AWG]", "[ton_us]" and "MFD" invalid.
func TestUnitsAreUCUM(t *testing.T) {
	want := map[string]string{
		"V": "volt", "mV": "millivolt", "A": "Ampere", "mA": "milliampere", "uA": "microAmpere",
		"Ohm": "ohm", "kOhm": "kiloohm", "MOhm": "megaohm", "uF": "microfarad", "Hz": "hertz",
		"W": "watt", "kW": "kilowatt", "[degF]": "degrees Fahrenheit", "Cel": "degree Celsius",
		"K": "degree Kelvin", "[psi]": "pound per square inch", "kPa": "kilopascal", "bar": "bar",
		"um[Hg]": "micrometer of mercury column", "[in_i'H2O]": "inch of water column", "Pa": "pascal",
		"[ft_i]/min": "foot/minute", "[cft_i]/min": "[cubic foot]/minute", "[oz_av]": "ounce", "[lb_av]": "pound",
		"g": "gram", "kg": "kilogram", "%": "", "[ft_i]": "foot", "[in_i]": "inch", "m": "meter",
		"s": "second - time", "min": "minute", "h": "hour", "1": "", "{AWG}": "{AWG}",
		"[Btu_IT]/h":       "[international table British thermal unit]/hour",
		"12000.[Btu_IT]/h": "[12000*[international table British thermal unit]]/hour",
	}
	for _, u := range units() {
		name, ok := want[u.code]
		require.True(t, ok, "%s was not looked up", u.code)
		if u.code[0] == '{' || name == "" || strings.ContainsAny(name, "/[-") {
			continue
		}
		plain := strings.ToLower(strings.NewReplacer("degrees", "degree", "degree Kelvin", "kelvin").Replace(name))
		assert.Equal(t, plain, strings.ToLower(u.name), u.code)
	}
	assert.Len(t, units(), len(want))
	for _, no := range []string{"", "[AWG]", "[ton_us]", "MFD", "amps", "uF "} {
		assert.Error(t, checkUnit("x", no))
	}
}
