"""The work itself: scripted procedures, trims, limits, records, the command line."""
