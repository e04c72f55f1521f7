//! What groups join: two things are on one island where a chain of groups, each sharing one with the next, leads from one to
//! the other.

/// The islands that groups make: members in order, larger islands first, then by their members.
pub fn islands<T: Ord + Clone>(groups: impl IntoIterator<Item = Vec<T>>) -> Vec<Vec<T>> {
    let mut islands: Vec<Vec<T>> = vec![];
    for group in groups {
        let (mut joined, apart): (Vec<_>, Vec<_>) =
            islands.into_iter().partition(|island| island.iter().any(|member| group.contains(member)));
        joined.push(group);
        let mut one = joined.concat();
        one.sort();
        one.dedup();
        islands = apart;
        islands.push(one);
    }
    islands.sort_by(|a, b| b.len().cmp(&a.len()).then_with(|| a.cmp(b)));
    islands
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chains_of_groups_join_and_what_none_joins_stands_alone() {
        let found = islands([vec![1, 2], vec![7], vec![4, 3], vec![5, 6], vec![3, 2]]);
        assert_eq!(found, [vec![1, 2, 3, 4], vec![5, 6], vec![7]]);
        assert!(islands(Vec::<Vec<u8>>::new()).is_empty());
    }
}
