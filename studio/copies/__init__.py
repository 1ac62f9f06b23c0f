"""Copies of the whole database: made while it is in use, proved, kept by a rule, put back.

A copy is made beside where it will lie, looked over as a copy, written down to the disk and only
then given its name. What is put back is looked over first, and what it takes the place of is set
aside. The app above says how its ledger is proved; see :mod:`studio.copies.proof`.
"""
