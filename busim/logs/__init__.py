"""Logs of a real or a simulated bus, judged by frames alone: what happened, in words, and what of it was required."""
