"""People, and what they sign in with.

- `records`: people, roles, passkeys and sessions as frozen types; light to import
- `people`: who they are, and their roles for one organ or for all
- `recorders`: who recorded what
- `signing_in`: passkeys, recovery codes, invitations, sessions
"""
