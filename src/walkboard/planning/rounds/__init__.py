"""Which organs a firm visits in which weeks, and who goes.

- `kinds`: organs, tuners and weeks as the solver takes them; the round that comes out
- `travel`: driving hours between towns
- `benefit`: what visits in given weeks bring to an organ's events
- `state`: a round being built: what fits, and what one more visit would bring
- `greedy`: most benefit an hour first
- `improve`: exchanges that bring more, until none does
- `bound`: what no round can exceed (linear programme)
- `polish`: an exact solver's try at a better one, where it is installed
- `solve`: all of it, starting from the round before if there is one
"""
