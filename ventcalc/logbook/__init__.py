"""What people did and weighed in a season: plain files beside the bay file, read and checked."""
