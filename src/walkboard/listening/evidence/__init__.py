"""What a recording shows before any pipe is measured: lines, modulation, drones."""
