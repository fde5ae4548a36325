"""CAN frames on the wire, bit by bit: how they are laid out, and how long they are.

Base-format data frames of CAN 2.0 only: 11-bit ids, at most 8 data bytes. Imports nothing of busim.
`layout` is the plain reading of the specification; `length` gives the same lengths fast, and a test holds the two together.
"""
