"""Which pipes to tune in the available minutes, with a proof.

- `task`, `problem`, `arrays`: the choice as arrays
- `demands`: what must be done or left alone
- `bound`, `fixing`, `continuous`: lower bounds
- `knapsack`, `solve`: the exact choice at one reference
- `tied`: references of several divisions
- `certify`: the choice over all references
- `curve`: what more minutes would gain
"""
