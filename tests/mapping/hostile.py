"""Names that would do harm where text is taken for a template, markup or script."""

NAMES = [
    "A{{ 7*7 }}B",
    "{% raw %}",
    "50{% of",
    "Green {# 4 #}",
    "{{ cycler.__init__.__globals__.os.getpid() }}",
    "<img src=x onerror=\"document.title='ran'\">",
    "</script><script>document.title='ran'</script>",
    "</title></noscript><b>x",
    "`${document.title='ran'}`",
    "back`tick ${7*7}",
    "it's \"quoted\" & 'so' &amp; &lt;",
    "line\u2028sep\u2029arated",
    "right\u200f-to-left \u202eabc",
    "%CSP%",
    "back\\slash \\u003c \\n",
]
