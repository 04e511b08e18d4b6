"""The frozen, versioned records that the stages exchange."""
