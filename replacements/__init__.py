"""Replacement mail ballots: from a voter's mail to the next business day's mailing, with a person deciding."""

__version__ = "0.1.0"
