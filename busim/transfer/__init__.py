"""The transfer of control explored: real node objects over every interleaving of what a bus and a crew can do, within budgets."""
