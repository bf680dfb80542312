package arch

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The second picture of docs/architecture.md has the imports of the program.
func TestThePictureHasTheImports(t *testing.T) {
	_, text, ok := strings.Cut(read(t, "docs/architecture.md"), "flowchart BT")
	require.True(t, ok)
	text, _, ok = strings.Cut(text, "```")
	require.True(t, ok)
	drawn := []string{}
	for _, m := range regexp.MustCompile(`(?m)^  (\S+) --> (\S+)$`).FindAllStringSubmatch(text, -1) {
		drawn = append(drawn, m[2]+" imports "+m[1])
	}
	is, seen := []string{}, map[string]bool{}
	var walk func(name string)
	walk = func(name string) {
		if seen[name] {
			return
		}
		seen[name] = true
		for _, imp := range plan()[name] {
			is = append(is, name+" imports "+imp)
			walk(imp)
		}
	}
	walk("cmd/callout")
	slices.Sort(drawn)
	slices.Sort(is)
	assert.Equal(t, is, drawn)
}

// functions lists every function of ours, as package.Type.Method or package.Func.
func functions(t *testing.T) map[string]bool {
	t.Helper()
	list := map[string]bool{}
	require.NoError(t, filepath.WalkDir("../..", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && strings.HasPrefix(d.Name(), ".") && d.Name() != ".." {
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return err
		}
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		room := path.Base(filepath.ToSlash(filepath.Dir(name)))
		for _, decl := range f.Decls {
			fn, ok := decl.(*ast.FuncDecl)
			if !ok {
				continue
			}
			of := ""
			if fn.Recv != nil {
				kind := fn.Recv.List[0].Type
				if star, ok := kind.(*ast.StarExpr); ok {
					kind = star.X
				}
				if id, ok := kind.(*ast.Ident); ok {
					of = id.Name + "."
				}
			}
			list[room+"."+of+fn.Name.Name] = true
		}
		return nil
	}))
	return list
}

// Every function that the page names is there.
func TestThePictureNamesFunctionsThatAreThere(t *testing.T) {
	page := read(t, "docs/architecture.md")
	named := []string{}
	for _, m := range regexp.MustCompile("\\[\"([a-z]+(?:\\.[A-Za-z]+)+)<br>|`([a-z]+\\.[A-Z][A-Za-z]*\\.[A-Z][A-Za-z]*)`").FindAllStringSubmatch(page, -1) {
		named = append(named, m[1]+m[2])
	}
	require.GreaterOrEqual(t, len(named), 18)
	all := functions(t)
	for _, name := range named {
		assert.True(t, all[name], "there is no function %s", name)
	}
}
