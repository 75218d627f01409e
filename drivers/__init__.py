"""One instrument each: links, line protocols, profiles. Fulfils the roles that `daq` states."""
