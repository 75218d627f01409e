"""A localizer that obeys the physics, and instruments that look at it over real links.

Imports nothing from `daq`, `drivers` or `procedures`: a formula that is wrong, or a command
that is misspelt, must not be able to hide by being wrong twice.
"""
