"""A file a person wrote, read into a model: every problem at once, each with its line and column, in plain words.

Knows YAML and pydantic, and no boat: boat files and scenarios are both read with it.
"""
