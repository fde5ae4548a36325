"""The CAN bus: exact frame times, arbitration, who hears whom, acknowledgement. Knows controllers, not nodes."""
