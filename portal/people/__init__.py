"""People: who takes part in which trial, with which roles; and one's own account."""
