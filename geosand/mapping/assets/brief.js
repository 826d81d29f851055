/* A short name for where the whole one has no room: the words that most others of its kind do not
   share, as 7 for Green 7; where these are long the number among them, or the id. None is given twice. */
geosand.brief = function (page) {
  const SHORT = 12; // letters that mostly find room
  const given = new Map(),
    taken = new Set(page.surfaces.map(({ name }) => name));
  const wordsOf = ({ name }) => name.split(/\s+/).filter(Boolean);
  Object.keys(page.data.kinds).forEach((kind) => {
    const peers = page.surfaces.filter((surface) => surface.kind === kind),
      counts = new Map();
    peers.forEach((surface) =>
      new Set(wordsOf(surface).map((word) => word.toLowerCase())).forEach((word) =>
        counts.set(word, (counts.get(word) || 0) + 1),
      ),
    );
    const often = new Set([...counts.keys()].filter((word) => counts.get(word) >= Math.max(3, peers.length / 2)));
    const ownOf = (surface) => wordsOf(surface).filter((word) => !often.has(word.toLowerCase()));
    // 7 is Green 7 rather than the temporary green 7 that may be drawn before it
    peers.sort((a, b) => ownOf(a).length - ownOf(b).length);
    peers.forEach((surface) => {
      const own = ownOf(surface),
        number = own.find((word) => /^\d+$/.test(word));
      const free = [own.join(" "), number, surface.id].filter(
        (text) => text && text.length < surface.name.length && !taken.has(text),
      );
      const short = free.find((text) => text.length <= SHORT) || free[0];
      if (!short) return;
      given.set(surface, short);
      taken.add(short);
    });
  });
  page.brief = (surface) => given.get(surface) || null;
};
