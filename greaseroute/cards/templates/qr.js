"use strict";
/* A QR code of capital letters and figures at error correction level M, after ISO/IEC 18004:
   QrCode.matrix(text) gives rows of true (dark) and false. */
var QrCode = (function () {
  var SET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:";
  /* Level M, versions 1 to 40: check codewords of a block, and blocks (tables 13 to 22). */
  var CHECKS = [10, 16, 26, 18, 24, 16, 18, 22, 22, 26, 30, 22, 22, 24, 24, 28, 28, 26, 26, 26, 26,
    28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28, 28];
  var BLOCKS = [1, 1, 1, 2, 2, 4, 4, 4, 5, 5, 5, 8, 9, 9, 10, 10, 11, 13, 14, 16, 17, 17, 18, 20,
    21, 23, 25, 26, 28, 29, 31, 33, 35, 37, 38, 40, 43, 45, 47, 49];

  function codewords(version) {
    var modules = (16 * version + 128) * version + 64;
    if (version >= 2) {
      var lines = Math.floor(version / 7) + 2;
      modules -= (25 * lines - 10) * lines - 55;
      if (version >= 7) modules -= 36;
    }
    return Math.floor(modules / 8);
  }
  function room(version) {
    return codewords(version) - CHECKS[version - 1] * BLOCKS[version - 1];
  }
  function lengthBits(version) { return version < 10 ? 9 : version < 27 ? 11 : 13; }
  function versionFor(text) {
    var bits = 11 * Math.floor(text.length / 2) + 6 * (text.length % 2);
    for (var version = 1; version <= 40; version += 1) {
      if (4 + lengthBits(version) + bits <= 8 * room(version)) return version;
    }
    return 0;
  }

  function dataOf(text, version) {
    var bits = [];
    function add(value, count) { for (var k = count - 1; k >= 0; k -= 1) bits.push(value >>> k & 1); }
    add(2, 4);
    add(text.length, lengthBits(version));
    for (var at = 0; at + 1 < text.length; at += 2) {
      add(45 * SET.indexOf(text[at]) + SET.indexOf(text[at + 1]), 11);
    }
    if (at < text.length) add(SET.indexOf(text[at]), 6);
    var most = 8 * room(version);
    add(0, Math.min(4, most - bits.length));
    add(0, (8 - bits.length % 8) % 8);
    for (var pad = 0xEC; bits.length < most; pad ^= 0xEC ^ 0x11) add(pad, 8);
    var data = [];
    for (var k = 0; k < bits.length; k += 8) {
      data.push(bits.slice(k, k + 8).reduce(function (byte, bit) { return 2 * byte + bit; }, 0));
    }
    return data;
  }

  /* Arithmetic in the field of 256 elements modulo x^8 + x^4 + x^3 + x^2 + 1. */
  function times(a, b) {
    var product = 0;
    for (var bit = 7; bit >= 0; bit -= 1) {
      product = product << 1 ^ (product >>> 7) * 0x11D;
      product ^= (b >>> bit & 1) * a;
    }
    return product;
  }
  function generator(degree) {
    var factors = new Array(degree).fill(0), root = 1;
    factors[degree - 1] = 1;
    for (var k = 0; k < degree; k += 1) {
      for (var j = 0; j < degree; j += 1) {
        factors[j] = times(factors[j], root);
        if (j + 1 < degree) factors[j] ^= factors[j + 1];
      }
      root = times(root, 2);
    }
    return factors;
  }
  function checksOf(block, factors) {
    var rest = new Array(factors.length).fill(0);
    block.forEach(function (byte) {
      var lead = byte ^ rest.shift();
      rest.push(0);
      factors.forEach(function (factor, k) { rest[k] ^= times(factor, lead); });
    });
    return rest;
  }
  function interleaved(data, version) {
    var count = BLOCKS[version - 1], checks = CHECKS[version - 1], factors = generator(checks);
    var size = Math.floor(data.length / count), long = data.length % count, blocks = [], at = 0;
    for (var k = 0; k < count; k += 1) {
      var end = at + size + (k >= count - long ? 1 : 0);
      blocks.push(data.slice(at, end));
      at = end;
    }
    var all = [];
    function weave(rows, length) {
      for (var k = 0; k < length; k += 1) {
        rows.forEach(function (row) { if (k < row.length) all.push(row[k]); });
      }
    }
    weave(blocks, size + 1);
    weave(blocks.map(function (block) { return checksOf(block, factors); }), checks);
    return all;
  }

  function centres(version) {
    if (version === 1) return [];
    var count = Math.floor(version / 7) + 2, last = 4 * version + 10, found = [6];
    var step = version === 32 ? 26 : Math.ceil((last - 6) / (2 * count - 2)) * 2;
    for (var at = last; found.length < count; at -= step) found.splice(1, 0, at);
    return found;
  }
  function remainder(value, polynomial, degree) {
    var rest = value;
    for (var k = 0; k < degree; k += 1) rest = rest << 1 ^ (rest >>> degree - 1) * polynomial;
    return rest;
  }
  function frame(version) {
    var size = 4 * version + 17, dark = [], fixed = [];
    for (var k = 0; k < size; k += 1) {
      dark.push(new Array(size).fill(false));
      fixed.push(new Array(size).fill(false));
    }
    function set(row, column, value) {
      if (row < 0 || column < 0 || row >= size || column >= size) return;
      dark[row][column] = value;
      fixed[row][column] = true;
    }
    for (var t = 0; t < size; t += 1) { set(6, t, t % 2 === 0); set(t, 6, t % 2 === 0); }
    [[3, 3], [3, size - 4], [size - 4, 3]].forEach(function (c) {
      for (var i = -4; i <= 4; i += 1) for (var j = -4; j <= 4; j += 1) {
        var ring = Math.max(Math.abs(i), Math.abs(j));
        set(c[0] + i, c[1] + j, ring !== 2 && ring !== 4);
      }
    });
    var at = centres(version), end = at.length - 1;
    at.forEach(function (row, a) { at.forEach(function (column, b) {
      if (a === 0 && b === 0 || a === 0 && b === end || a === end && b === 0) return;
      for (var i = -2; i <= 2; i += 1) for (var j = -2; j <= 2; j += 1) {
        set(row + i, column + j, Math.max(Math.abs(i), Math.abs(j)) !== 1);
      }
    }); });
    if (version >= 7) {
      var bits = version << 12 | remainder(version, 0x1F25, 12);
      for (var v = 0; v < 18; v += 1) {
        var on = (bits >>> v & 1) === 1, a = Math.floor(v / 3), b = size - 11 + v % 3;
        set(a, b, on);
        set(b, a, on);
      }
    }
    function format(mask) {
      /* Level M is 00. */
      var word = (mask << 10 | remainder(mask, 0x537, 10)) ^ 0x5412;
      for (var k = 0; k < 15; k += 1) {
        var on = (word >>> k & 1) === 1;
        set(k < 6 ? k : k < 8 ? k + 1 : size - 15 + k, 8, on);
        set(8, k < 8 ? size - 1 - k : k < 9 ? 7 : 14 - k, on);
      }
      set(size - 8, 8, true);
    }
    format(0);
    return { size: size, dark: dark, fixed: fixed, format: format };
  }
  var MASKS = [
    function (r, c) { return (r + c) % 2; },
    function (r) { return r % 2; },
    function (r, c) { return c % 3; },
    function (r, c) { return (r + c) % 3; },
    function (r, c) { return (Math.floor(r / 2) + Math.floor(c / 3)) % 2; },
    function (r, c) { return r * c % 2 + r * c % 3; },
    function (r, c) { return (r * c % 2 + r * c % 3) % 2; },
    function (r, c) { return ((r + c) % 2 + r * c % 3) % 2; }
  ];
  function fill(code, data) {
    var at = 0;
    for (var right = code.size - 1; right >= 1; right -= 2) {
      if (right === 6) right = 5;
      for (var k = 0; k < code.size; k += 1) {
        var row = (right + 1 & 2) === 0 ? code.size - 1 - k : k;
        for (var j = 0; j < 2; j += 1) {
          if (code.fixed[row][right - j]) continue;
          if (at < 8 * data.length) {
            code.dark[row][right - j] = (data[at >>> 3] >>> 7 - (at & 7) & 1) === 1;
          }
          at += 1;
        }
      }
    }
  }
  function masked(code, mask) {
    return code.dark.map(function (row, r) {
      return row.map(function (on, c) {
        return code.fixed[r][c] ? on : on !== (MASKS[mask](r, c) === 0);
      });
    });
  }
  function penalty(dark) {
    var size = dark.length, sum = 0, count = 0;
    function line(get) {
      var run = 0, text = "";
      for (var k = 0; k < size; k += 1) {
        var on = get(k);
        run = k && on === get(k - 1) ? run + 1 : 1;
        if (run === 5) sum += 3;
        else if (run > 5) sum += 1;
        text += on ? "1" : "0";
      }
      for (var at = 0; at + 11 <= size; at += 1) {
        var part = text.slice(at, at + 11);
        if (part === "10111010000" || part === "00001011101") sum += 40;
      }
    }
    for (var a = 0; a < size; a += 1) {
      line(function (k) { return dark[a][k]; });
      line(function (k) { return dark[k][a]; });
      for (var b = 0; b < size; b += 1) {
        count += dark[a][b];
        if (a + 1 < size && b + 1 < size && dark[a][b] === dark[a][b + 1] &&
            dark[a][b] === dark[a + 1][b] && dark[a][b] === dark[a + 1][b + 1]) sum += 3;
      }
    }
    return sum + 10 * Math.floor(Math.abs(20 * count - 10 * size * size) / (size * size));
  }
  function matrix(text, wanted) {
    var version = versionFor(text);
    if (!version) return null;
    var code = frame(version), best = null, least = Infinity;
    fill(code, interleaved(dataOf(text, version), version));
    for (var mask = 0; mask < 8; mask += 1) {
      if (wanted !== undefined && wanted !== mask) continue;
      code.format(mask);
      var dark = masked(code, mask), cost = penalty(dark);
      if (cost < least) { least = cost; best = dark; }
    }
    return best;
  }
  /* The code as an SVG picture with its quiet zone of four modules. */
  function svg(text) {
    var dark = matrix(text);
    if (!dark) return "";
    var side = dark.length + 8, path = "";
    dark.forEach(function (row, r) {
      row.forEach(function (on, c) { if (on) path += "M" + (c + 4) + " " + (r + 4) + "h1v1h-1z"; });
    });
    return '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ' + side + " " + side +
      '" shape-rendering="crispEdges" role="img" aria-label="receipt as a code">' +
      '<rect width="' + side + '" height="' + side + '" fill="#fff"/><path d="' + path + '"/></svg>';
  }
  return { matrix: matrix, svg: svg };
})();
