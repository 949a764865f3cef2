"""Who may come in, and what may be brought: tokens, hosts, forms, bounded uploads."""
