"""The plan of a study: stages, duties, fellings, logs."""
