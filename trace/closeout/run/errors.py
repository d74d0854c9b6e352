"""A mistake in the use of a command: what happened, and what to do."""

from __future__ import annotations


class UserError(Exception):
    """Ends a command with status 2; every message has its cure."""

    def __init__(self, *messages: tuple[str, str]) -> None:
        super().__init__(*messages)
        self.messages = messages

    def __str__(self) -> str:
        return self.shown()

    def shown(self) -> str:
        """Return the messages, a line each, the cures indented below."""
        lines = []
        for message, cure in self.messages:
            lines.append(message)
            if cure:
                lines.append(f"    {cure}")
        return "\n".join(lines)
