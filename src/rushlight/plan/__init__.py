"""What a rig can be expected to do: budgets, coverage, advice and pictures, before it is built."""
