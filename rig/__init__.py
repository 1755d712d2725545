"""The device program: reads the rig's sensors and sends what they said, never what it means."""
