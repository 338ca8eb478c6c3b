"""An output stage described as a circuit becomes a session; shares no solver with the rest."""
