package record

import (
	"slices"
	"strings"
	"testing"
)

// TestBallLimits holds the federation's limits at their very edges. Source: equipment specification
// of the United States tenpin federation as relayed publicly. Weight at most 16.00 lb, no minimum
// (encyclopedia mirror); radius of gyration 2.460 to 2.800 in for 13 lb and more, the low limit for
// approvals from 1 July 2010 (release of 24 August 2009, quoted in a forum); differential at most
// 0.060 in (release effective 1 February 2005, quoted likewise). The limits of lighter balls were
// not to be found: only the differential is held against them. Grit and the range of what a radius
// of gyration can be at all are common practice, no source.
func TestBallLimits(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		change func(*Ball)
		fault  string // the pointer; empty for a legal ball
		says   string
	}{
		"nothing measured":                     {func(*Ball) {}, "", ""},
		"16 lb":                                {func(b *Ball) { b.WeightLB = 16 }, "", ""},
		"over 16 lb":                           {func(b *Ball) { b.WeightLB = 16.01 }, "/weight_lb", "16.00 lb"},
		"a child's ball":                       {func(b *Ball) { b.WeightLB = 6 }, "", ""},
		"no weight":                            {func(b *Ball) { b.WeightLB = 0 }, "/weight_lb", "more than 0"},
		"negative weight":                      {func(b *Ball) { b.WeightLB = -15 }, "/weight_lb", "more than 0"},
		"lowest radius of gyration":            {func(b *Ball) { b.RGIn = new(2.460) }, "", ""},
		"radius of gyration below":             {func(b *Ball) { b.RGIn = new(2.459) }, "/rg_in", "2.460 to 2.800"},
		"the limit before 2010":                {func(b *Ball) { b.RGIn = new(2.430) }, "/rg_in", "2.460 to 2.800"},
		"highest radius of gyration":           {func(b *Ball) { b.RGIn = new(2.800) }, "", ""},
		"radius of gyration above":             {func(b *Ball) { b.RGIn = new(2.801) }, "/rg_in", "2.460 to 2.800"},
		"13 lb is held to it":                  {func(b *Ball) { b.WeightLB, b.RGIn = 13, new(2.801) }, "/rg_in", "2.460 to 2.800"},
		"a lighter one is not":                 {func(b *Ball) { b.WeightLB, b.RGIn = 12.99, new(2.850) }, "", ""},
		"a radius no ball has":                 {func(b *Ball) { b.WeightLB, b.RGIn = 12, new(4.5) }, "/rg_in", "between 1 and 4"},
		"millimetres":                          {func(b *Ball) { b.WeightLB, b.RGIn = 12, new(63.5) }, "/rg_in", "between 1 and 4"},
		"highest differential":                 {func(b *Ball) { b.DifferentialIn = new(0.060) }, "", ""},
		"differential above":                   {func(b *Ball) { b.DifferentialIn = new(0.061) }, "/differential_in", "0.060"},
		"the limit before 2005":                {func(b *Ball) { b.DifferentialIn = new(0.080) }, "/differential_in", "0.060"},
		"a lighter one's differential, too":    {func(b *Ball) { b.WeightLB, b.DifferentialIn = 10, new(0.061) }, "/differential_in", "0.060"},
		"no differential at all, a solid ball": {func(b *Ball) { b.DifferentialIn = new(0.0) }, "", ""},
		"negative differential":                {func(b *Ball) { b.DifferentialIn = new(-0.001) }, "/differential_in", "0.060"},
		"urethane":                             {func(b *Ball) { b.Cover = new("urethane") }, "", ""},
		"unknown cover":                        {func(b *Ball) { b.Cover = new("rubberish") }, "/cover", "plastic, urethane, solid, hybrid or pearl"},
		"fine surface":                         {func(b *Ball) { b.SurfaceGrit = new(int32(10000)) }, "", ""},
		"finer than there is":                  {func(b *Ball) { b.SurfaceGrit = new(int32(10001)) }, "/surface_grit", "100 to 10000"},
		"coarser than there is":                {func(b *Ball) { b.SurfaceGrit = new(int32(99)) }, "/surface_grit", "100 to 10000"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			ball := &Ball{Name: "Blue solid", WeightLB: 15}
			tc.change(ball)
			found := ball.Faults()
			if tc.fault == "" {
				if len(found) > 0 {
					t.Errorf("a legal ball: %+v", found)
				}
				return
			}
			if !slices.ContainsFunc(
				found,
				func(f Fault) bool { return f.Pointer == tc.fault && strings.Contains(f.Detail, tc.says) },
			) {
				t.Errorf("faults %+v, want one at %s that says %q", found, tc.fault, tc.says)
			}
		})
	}
	t.Run("every fault is told", func(t *testing.T) {
		t.Parallel()
		ball := &Ball{
			Name:           "",
			WeightLB:       17,
			RGIn:           new(3.0),
			DifferentialIn: new(1.0),
			Cover:          new("wood"),
			SurfaceGrit:    new(int32(1)),
			Note:           strings.Repeat("n", 4001),
		}
		var pointers []string
		for _, f := range ball.Faults() {
			pointers = append(pointers, f.Pointer)
		}
		slices.Sort(pointers)
		want := []string{"/cover", "/differential_in", "/name", "/note", "/rg_in", "/surface_grit", "/weight_lb"}
		if !slices.Equal(pointers, want) {
			t.Errorf("faults at %v, want %v", pointers, want)
		}
	})
}
