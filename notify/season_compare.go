package notify

import (
	"context"
	"math"
	"runtime"

	"golang.org/x/sync/errgroup"
)

// Comparison is the same seasons under several policies.
type Comparison struct {
	Seeds    []uint64
	Policies []string
	Seasons  [][]Season // by policy, then by seed
}

// CompareSeasons plays n seasons, from the seed from on, under each of policies, on all
// cores. Every policy meets the same swarms, people and answers. The result depends on
// nothing but the arguments. step, if not nil, is called after each season, from several
// goroutines.
func CompareSeasons(ctx context.Context, w World, d Dispatch, policies []string, from uint64, n int, step func()) (*Comparison, error) {
	c := &Comparison{Policies: policies, Seasons: make([][]Season, len(policies))}
	for i := range n {
		c.Seeds = append(c.Seeds, from+uint64(i))
	}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	for p, policy := range policies {
		c.Seasons[p] = make([]Season, n)
		for i, seed := range c.Seeds {
			group.Go(func() error {
				if ctx.Err() != nil {
					return ctx.Err()
				}
				c.Seasons[p][i] = PlaySeason(w, policy, seed, d)
				if step != nil {
					step()
				}
				return nil
			})
		}
	}
	return c, group.Wait()
}

// Mean returns the mean over the seasons of one policy, by its place, of what figure picks,
// and the half width of its 95 % confidence interval (1.96 standard errors; 0 of one season).
func (c *Comparison) Mean(policy int, figure func(Season) float64) (mean, half float64) {
	values := make([]float64, len(c.Seeds))
	for i, s := range c.Seasons[policy] {
		values[i] = figure(s)
	}
	return meanOf(values)
}

// Paired returns by how much figure is greater under policy a than under b, season by season,
// with its interval: the draws they share cancel out.
func (c *Comparison) Paired(a, b int, figure func(Season) float64) (mean, half float64) {
	values := make([]float64, len(c.Seeds))
	for i := range values {
		values[i] = figure(c.Seasons[a][i]) - figure(c.Seasons[b][i])
	}
	return meanOf(values)
}

func meanOf(values []float64) (mean, half float64) {
	n := float64(len(values))
	for _, v := range values {
		mean += v / n
	}
	if n < 2 {
		return mean, 0
	}
	var squares float64
	for _, v := range values {
		squares += (v - mean) * (v - mean)
	}
	return mean, 1.96 * math.Sqrt(squares/(n-1)/n)
}
