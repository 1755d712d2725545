"""What the rig's sensors make of the world."""
