"""What the boat must do, one file a requirement, and the table that names them.

A requirement judges by events and by the situation, with arithmetic of its own; it imports nothing of the nodes, of the
codec or of the state tables. A new one is one file here, one line in `table`, and a twin that must fail it in tests/twins.
"""
