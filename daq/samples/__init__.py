"""DDM from samples: the tool's own receiver.

A record of detector voltage, or of complex baseband, becomes depths, DDM, SDM, tone frequencies
and all the rest, each with its standard uncertainty.

`daq.samples.analyze`
    `analyze_samples`, `analyze_file`, `reading_from_waveform`: one answer for one record.
`daq.samples.stream`
    `ddm_series`: long records block by block, in constant memory.
`daq.samples.series`
    `write_series`, `plot_series`: a series as CSV, Parquet or a picture.
`daq.samples.files`
    `open_samples`: sound files, tables of time and volts, NumPy arrays.
"""
