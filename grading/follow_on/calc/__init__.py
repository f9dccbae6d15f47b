"""Pure computing of follow-on tests; knows nothing of Django."""
