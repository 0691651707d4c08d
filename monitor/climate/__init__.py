"""Readings into air records, and air records into doses."""
