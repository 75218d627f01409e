"""The log: one append-only SQLite file a station, whose rows chain by SHA-256.

The log is the truth. Records, tables and trends are computed from it and can be thrown away.
"""
