"""Outside truth: output stages solved by ngspice, recorded as sessions, analysed and compared."""
