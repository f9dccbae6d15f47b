"""Planning: laying out a site, choosing trees to fell."""
