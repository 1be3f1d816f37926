"""An invented organ in an invented town, and a synthesiser of its pipes."""
