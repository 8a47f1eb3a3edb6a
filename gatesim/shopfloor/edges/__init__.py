"""What a rig's recorded edges tell: motion and delays, jitter, chatter, and the input filter."""
