"""The live page: what the bench reads, on a screen that stands where the hand is.

The run's thread publishes to a `procedures.page.hub.Hub` and never waits for a screen; a server
thread reads the log and the hub and streams to browsers. What a screen does is handed to the run
as if it had been typed (`procedures.page.keys`), so nothing can be done here that the terminal
cannot do.
"""
