package physics

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"io"
	"sort"
	"sync"
)

//go:embed data/*.json
var gridFiles embed.FS

var (
	superheatGrid = sync.OnceValues(func() (*grid, error) { return openGrid("data/target_superheat.json") })
	splitGrid     = sync.OnceValues(func() (*grid, error) { return openGrid("data/target_split.json") })
	heatingGrid   = sync.OnceValues(func() (*grid, error) { return openGrid("data/heating_example.json") })
)

// grid is a published table over two axes; a nil cell is a printed dash.
type grid struct {
	What    string       `json:"what"`
	Source  string       `json:"source"`
	Row     string       `json:"row"`
	Column  string       `json:"column"`
	Columns []float64    `json:"columns"`
	Rows    []float64    `json:"rows"`
	Cells   [][]*float64 `json:"cells"`
}

func openGrid(name string) (*grid, error) {
	data, err := gridFiles.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("physics: %w", err)
	}
	g, err := readGrid(data)
	if err != nil {
		return nil, fmt.Errorf("physics: %s: %w", name, err)
	}
	return g, nil
}

func readGrid(data []byte) (*grid, error) {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	g := &grid{}
	if err := d.Decode(g); err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("text after the table")
	}
	switch {
	case g.What == "" || g.Source == "" || g.Row == "" || g.Column == "":
		return nil, fmt.Errorf("what, source, row and column must be said")
	case len(g.Rows) < 2 || len(g.Columns) < 2:
		return nil, fmt.Errorf("fewer than two rows or columns")
	case !sort.Float64sAreSorted(g.Rows) || !sort.Float64sAreSorted(g.Columns):
		return nil, fmt.Errorf("rows and columns must rise")
	case len(g.Cells) != len(g.Rows):
		return nil, fmt.Errorf("%d rows of cells for %d rows", len(g.Cells), len(g.Rows))
	}
	for i, row := range g.Cells {
		if len(row) != len(g.Columns) {
			return nil, fmt.Errorf("row %g has %d cells, want %d", g.Rows[i], len(row), len(g.Columns))
		}
	}
	return g, nil
}

// at interpolates linearly along both axes. known is false where a cell that
// counts is a dash; x and y must lie on the table.
func (g *grid) at(row, column float64) (value float64, known bool) {
	i, u := place(g.Rows, row)
	j, v := place(g.Columns, column)
	for di, wi := range [2]float64{1 - u, u} {
		for dj, wj := range [2]float64{1 - v, v} {
			if wi*wj == 0 {
				continue
			}
			cell := g.Cells[i+di][j+dj]
			if cell == nil {
				return 0, false
			}
			value += wi * wj * *cell
		}
	}
	return value, true
}

// place finds the interval of a rising axis that holds x and x's share of it.
func place(axis []float64, x float64) (int, float64) {
	i := min(max(sort.SearchFloat64s(axis, x)-1, 0), len(axis)-2)
	return i, (x - axis[i]) / (axis[i+1] - axis[i])
}

// covers says whether a point lies on the table, edges included.
func (g *grid) covers(row, column float64) bool {
	return row >= g.Rows[0] && row <= g.Rows[len(g.Rows)-1] &&
		column >= g.Columns[0] && column <= g.Columns[len(g.Columns)-1]
}
