package audiotest

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestDistance(t *testing.T) {
	for _, tt := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"a b c", "a b c", 0}, {"a b c", "a c", 1}, {"a c", "a b c", 1}, {"a b", "c d", 2}, {"", "a b", 2},
	} {
		assert.Equal(t, tt.want, Distance(strings.Fields(tt.a), strings.Fields(tt.b)), "%q %q", tt.a, tt.b)
	}
}

func TestSpelled(t *testing.T) {
	assert.Equal(t, strings.Fields("two nine mister go ten"), Spelled("29, Mr. Go: 10"))
}

func TestRaw(t *testing.T) {
	assert.Equal(t, []float32{0, 0.5, -1}, Raw([]byte{0, 0, 0, 0x40, 0, 0x80}))
}
