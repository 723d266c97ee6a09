"""What the models of all documents are built from: their base, typed quantities, criteria, limits."""
