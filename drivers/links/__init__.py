"""Ways to an instrument, each behind `daq.link.Link`; foreign errors end here."""
