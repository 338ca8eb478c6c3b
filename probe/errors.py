"""The one exception tree.

::

    ProbeError
    ├── BadInput        what was given cannot be used: file, format, value (exit status 2)
    │   └── NotStored   a folder in use takes nothing any more: what is kept there stays
    └── NotUsable       the recordings are readable but do not support what was asked

Every message is one line saying what was seen, where, what is allowed and what to do.
Foreign exceptions are mapped once, at the border, with ``from``.
"""


class ProbeError(Exception):
    """Anything the project raises on purpose."""


class BadInput(ProbeError):
    """What was given cannot be used: a missing or damaged file, a wrong format, key or value."""


class NotStored(BadInput):
    """A folder takes nothing any more, a full disk above all; what was kept in it is there."""


class NotUsable(ProbeError):
    """The recordings can be read, but they do not support what was asked of them."""
