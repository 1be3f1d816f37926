"""What a recording shows of its sources before any pipe is measured: lines, modulation, drones."""
