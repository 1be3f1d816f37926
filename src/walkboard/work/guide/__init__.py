"""The guide: what each stop of an organ sounds like, as a page that plays and as tuning files."""
