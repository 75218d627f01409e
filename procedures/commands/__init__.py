"""The commands that need no instrument wired up by themselves, and what all commands share."""
