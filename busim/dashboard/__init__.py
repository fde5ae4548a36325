"""The screen of a rehearsal. It draws snapshots and turns keys and touches into actions; it knows no world and decides nothing."""
