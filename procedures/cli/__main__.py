"""``python -m procedures.cli``: the same as ``trimbench``."""

from procedures.cli import main

main()
