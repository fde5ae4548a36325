"""Where the simulated boat meets something outside: programs, firmware, adapters, in real time. The simulator never imports it."""
