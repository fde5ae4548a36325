"""Nodes with one planted defect each. For every requirement one of them must fail it, and nothing unrelated."""
