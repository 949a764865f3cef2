"""Lots: many samples of one design; a ledger, statistics, a decision, and a report."""
