"""Builders: plain functions that take the one fact a test is about."""
