"""People of a firm: who they are, how they sign in, and what they are to which organ.

- `roster`: add, list and remove people, their roles, and invitations
- `tokens`, `sessions`: who a browser's cookie belongs to
- `passkeys`, `challenges`: signing in with a passkey (extra ``walkboard[people]``)
- `recovery`: the one code that helps when the passkey is lost (the same extra)
- `openid`: signing in by the firm's identity provider (extra ``walkboard[openid]``)
"""
