"""Languages: what every package says in English, said in the language of the reader.

- `spoken`: the language of the page, message or sheet that is being made
- `translation`: English sentences into that language, by ``words/LANGUAGE.toml``
"""
