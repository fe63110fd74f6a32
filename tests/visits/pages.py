"""Addresses of the visits' pages, and what stands on one."""

from django.urls import reverse


def address(name, *args):
    return reverse(f"visits:{name}", args=args)


def said(response):
    return response.content.decode()
