"""Rule sets on pages: reading, editing, new versions, and grading boards anew by them."""
