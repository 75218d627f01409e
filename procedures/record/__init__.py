"""The record: what is signed and kept of a run, computed from the log and from nothing else."""
