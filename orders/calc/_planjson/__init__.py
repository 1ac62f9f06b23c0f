"""The snapshot's JSON, written and read; :mod:`orders.calc.plan` is its door."""
