"""What can break, one file a fault, and the table that names them. A fault acts only through handles of the world it is given."""
