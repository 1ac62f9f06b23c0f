"""What other programs read of the studio, in JSON; :mod:`studio.api` is their door."""
