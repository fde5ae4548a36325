"""One deterministic run: a boat, a scenario, a seed; what happened in words, verdicts, and what each loss of control cost."""
