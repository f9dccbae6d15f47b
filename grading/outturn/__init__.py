"""What came out: grades by clone, tree and place in the tree, and what boards were downgraded for."""
