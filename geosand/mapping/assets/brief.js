/* A short name for where the whole one has no room: the words that most others of its kind do not
   share, as 7 for Green 7; else the id. None is given twice. */
geosand.brief = function (page) {
  const given = new Map(),
    taken = new Set(page.surfaces.map(({ name }) => name));
  const wordsOf = ({ name }) => name.split(/\s+/).filter(Boolean);
  function ownWords(surface, often) {
    const own = wordsOf(surface).filter((word) => !often.has(word.toLowerCase()));
    return own.join(" ");
  }
  Object.keys(page.data.kinds).forEach((kind) => {
    const peers = page.surfaces.filter((surface) => surface.kind === kind),
      counts = new Map();
    peers.forEach((surface) =>
      new Set(wordsOf(surface).map((word) => word.toLowerCase())).forEach((word) =>
        counts.set(word, (counts.get(word) || 0) + 1),
      ),
    );
    const often = new Set([...counts.keys()].filter((word) => counts.get(word) >= Math.max(3, peers.length / 2)));
    peers.forEach((surface) => {
      const short = [ownWords(surface, often), surface.id].find(
        (text) => text && text.length < surface.name.length && !taken.has(text),
      );
      if (!short) return;
      given.set(surface, short);
      taken.add(short);
    });
  });
  page.brief = (surface) => given.get(surface) || null;
};
