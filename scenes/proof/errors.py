"""Why the verifier does not say that a proof holds."""


class NotProvableError(Exception):
    """The scene holds something that no proof is known for."""


class RefusedError(Exception):
    """The proof does not show what it says."""
