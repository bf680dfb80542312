package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"callout/catalogue"
	"callout/diagnose"
	"callout/session"
)

func newCatalogue() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "catalogue",
		Short: "List what can be said: quantities, places, units, declarations, tests, faults",
		Long: `List everything that callout knows by name. Any id can be typed: underscores are
spaces, so "current compressor_common 47" is a reading.`,
		Args: exactly(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			k, err := session.LoadKnowledge()
			if err != nil {
				return err
			}
			if asJSON {
				enc := json.NewEncoder(cmd.OutOrStdout())
				enc.SetEscapeHTML(false)
				enc.SetIndent("", " ")
				return enc.Encode(catalogueView(k))
			}
			w := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 8, 2, ' ', 0)
			writeCatalogue(w, k)
			return w.Flush()
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "write one JSON object")
	return cmd
}

type wholeCatalogue struct {
	Quantities   []catalogue.Quantity    `json:"quantities"`
	Places       []catalogue.Place       `json:"places"`
	Units        []catalogue.Unit        `json:"units"`
	Declarations []catalogue.Declaration `json:"declarations"`
	Commands     []catalogue.Command     `json:"commands"`
	Repairs      []catalogue.Repair      `json:"repairs"`
	Tests        []diagnose.Test         `json:"tests"`
	Faults       []diagnose.Fault        `json:"faults"`
}

func catalogueView(k *session.Knowledge) wholeCatalogue {
	c := k.Catalogue
	return wholeCatalogue{c.Quantities, c.Places, c.Units, c.Declarations, c.Commands, c.Repairs, k.Engine.Tests(), k.Engine.Faults()}
}

func writeCatalogue(w *tabwriter.Writer, k *session.Knowledge) {
	head := func(text string) { fmt.Fprintf(w, "\n%s\n", strings.ToUpper(text)) }
	head("quantities")
	for _, q := range k.Catalogue.Quantities {
		takes := string(q.Unit)
		if !q.Kind.Numeric() {
			var ids []string
			for _, v := range q.Values {
				ids = append(ids, string(v.ID))
			}
			takes = strings.Join(ids, "|")
		}
		var places []string
		for _, p := range q.Places {
			places = append(places, string(p))
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", q.ID, q.Kind, takes, strings.Join(places, " "))
	}
	head("declarations")
	for _, d := range k.Catalogue.Declarations {
		fmt.Fprintf(w, "%s\t“%s”\n", d.ID, strings.Join(d.Spoken, "”, “"))
	}
	head("repairs")
	for _, r := range k.Catalogue.Repairs {
		fmt.Fprintf(w, "%s\t“%s”\n", r.ID, strings.Join(r.Spoken, "”, “"))
	}
	head("commands")
	for _, c := range k.Catalogue.Commands {
		fmt.Fprintf(w, "%s\t“%s”\n", c.ID, strings.Join(c.Spoken, "”, “"))
	}
	head("tests")
	for _, t := range k.Engine.Tests() {
		fmt.Fprintf(w, "%s\t%s\n", t.ID, t.Name)
	}
	head("faults")
	for _, f := range k.Engine.Faults() {
		fmt.Fprintf(w, "%s\t%s\n", f.ID, f.Name)
	}
}
