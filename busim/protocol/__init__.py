"""What goes over the wire: ids, messages, codec, counter, state tables, and the boat as its nodes know it.

Imports nothing of busim but its units. Nodes, the written page, exports and checks all come from here.
"""
