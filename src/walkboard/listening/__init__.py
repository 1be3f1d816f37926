"""Sound in, holds and frequencies out: knows arrays and expected combs, no organ."""
