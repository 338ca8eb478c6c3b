"""An output stage described as a circuit becomes a session; shares no solver with the analysis.

::

    read_stage(path) -> StageSpec         stage.toml, every default filled in, every draw made
    stage_of(table) -> StageSpec          the same from a plain dictionary
    simulate(stage, out)                  session.toml and its takes
    truth(stage, hz, side) -> Truth       open-circuit voltages and impedance matrix
    recorded(stage, take) -> Recorded     voltages at the recorder's terminals, no audio
    as_read(stage, take)                  the same as the recorder reads them
    session_of(stage, folder) -> Session  what a reader of the folder would find
"""
