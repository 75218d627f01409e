"""Over the years: reference values, trends, what is due, exports and the station book.

Everything here is computed from the log; only `references` writes to it, and it only appends.
"""
