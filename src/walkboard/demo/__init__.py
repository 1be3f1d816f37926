"""An invented organ in an invented town, and a synthesiser of its pipes.

- `flow`: the whole demo; `hall` its organ, `walks` its recordings, `compare` heard against true
- `synthesiser`: sound of pipes, sharing no code with listening
- `years`, `history`: how the organ moved over three years, and their book
- `practice`: an organ to practise on
"""
