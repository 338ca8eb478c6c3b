"""What a side measures like beyond its source: noise, distortion, maximum, response, rejection.

From a session, its phasors and the identified stage to entries of the facts document. Each kind of
measurement is a module of its own with one pure function from a ``Subject`` to a ``Part``;
``measure`` runs them all.
"""
