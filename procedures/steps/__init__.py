"""Sub-steps that procedures share; each is a plain function over an `engine.bench.Bench`."""
