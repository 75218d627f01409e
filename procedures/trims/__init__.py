"""One implementation of each trim; procedures and commands both call these functions."""
