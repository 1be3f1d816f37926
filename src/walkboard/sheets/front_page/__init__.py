"""Page 1 of the report: what the people who look after the organ ask, answered in plain words."""
