"""One bay: what is known of it, what is advised, what the safety gate lets through."""
