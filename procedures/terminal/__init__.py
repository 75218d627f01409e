"""The technician's side at a terminal: prompts, the live value, keys; and a watcher for demos."""
