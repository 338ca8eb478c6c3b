"""An output stage described as a circuit becomes a session; shares no solver with the analysis.

::

    build.read_stage(path) -> StageSpec            stage.toml: defaults in, every draw made
    build.stage_of(table) -> StageSpec             the same from a plain dictionary
    write.simulate(stage, out)                     session.toml and its takes
    write.rebuild(folder)                          every session of a folder, from its stage.toml
    network.truth(stage, hz, side) -> Truth        open-circuit voltages and impedance matrix
    network.recorded(stage, take) -> Recorded      voltages at the recorder's terminals
    network.as_read(stage, take)                   the same as the recorder reads them, no audio
    network.noise_variance(stage, take, hz)        what noise does to each of those phasors
    describe.session_of(stage, folder) -> Session  what a reader of the folder would find

In the order of the work: ``document`` (the file), ``netlist`` and ``library`` (circuits as data),
``presets`` and ``build`` (every figure of every take), ``circuit``, ``truth`` and ``network``
(voltages), ``sound`` (samples), ``describe`` and ``write`` (files).
"""
