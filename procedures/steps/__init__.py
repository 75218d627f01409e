"""Sub-steps that procedures share; each is a plain function over a `procedures.bench.Bench`."""
