package diagnose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"callout/catalogue"
	"callout/diagnose"
)

func load(t testing.TB) *diagnose.Knowledge {
	t.Helper()
	c, err := catalogue.Load()
	require.NoError(t, err)
	k, err := diagnose.Load(c)
	require.NoError(t, err)
	return k
}

func TestKnowledgeIsValid(t *testing.T) {
	k := load(t)
	faults := 0
	for _, f := range k.Faults() {
		if !f.Normal {
			faults++
		}
	}
	assert.GreaterOrEqual(t, faults, 60)
	assert.Len(t, k.Version(), 64)
}
