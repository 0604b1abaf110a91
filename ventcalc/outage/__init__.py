"""Fans and plant stand still: how long until each limit, doors closed or opened by hand?"""
