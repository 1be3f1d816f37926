"""The firm's round: which organs in which weeks, by whom.

- `firm_file`: the firm as a TOML file: tuners, towns, organs, key holders, closed days
- `forecasts`: how ready each organ stays, and what it must be ready for, from the book
- `make_round`: the round itself, and what changed since the one before
- `to_json`: a round as a file, and back
- `round_map`: the towns with their weeks, as a picture
- `kept_round`: the round of a book, kept in its folder for the pages
- `calendars`: an iCalendar file for each tuner
"""
