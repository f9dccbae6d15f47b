"""The grading of one study on one page: how far it is, and the ways to its parts."""
