"""Label sheets for log ends, and the codes read on boards."""
